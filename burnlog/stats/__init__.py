"""Statistics without trade words: arrays and frames in, frozen results out."""
