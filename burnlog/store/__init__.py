"""The log on disk: one SQLite file, its schema, its trail, what goes in and what comes out."""
