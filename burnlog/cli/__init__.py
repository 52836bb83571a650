"""The command line: each command reads what was typed, calls one function and prints."""
