"""Results as text for the terminal and as pages that print."""
