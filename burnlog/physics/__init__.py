"""What water, oxygen and sections of steel are: constants, densities and lengths, with their sources."""
