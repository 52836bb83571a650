"""One file for each question that is answered by looking; a chart is a declaration that a test can read."""
