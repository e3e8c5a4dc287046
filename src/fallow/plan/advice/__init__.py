"""What comes with a plan: what to do when something fails, in which order to move, what would help."""
