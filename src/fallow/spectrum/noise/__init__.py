"""What noise does: its scatter, the trace kind that it tells, and the floor per frequency."""
