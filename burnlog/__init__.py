"""burnlog: a log of underwater cutting that turns its own history into ranges for the next job."""
