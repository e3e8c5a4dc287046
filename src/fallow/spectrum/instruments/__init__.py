"""Several instruments in one survey, held against each other."""
