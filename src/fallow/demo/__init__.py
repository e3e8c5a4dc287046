"""The invented house: shipped sweeps and tables, and the story of one evening told over them."""
