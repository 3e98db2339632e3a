"""What a style is: the frozen model, and the YAML door that builds it."""
