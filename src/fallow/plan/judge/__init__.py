"""The judge of any plan, and its case for and against a frequency; shares nothing with the search."""
