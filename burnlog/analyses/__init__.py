"""The questions people ask of the record, each a function from frames to a frozen result."""
