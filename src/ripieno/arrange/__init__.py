"""From a chord and a style to what each hand plays. Pure."""
