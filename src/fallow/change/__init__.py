"""What changed: two surveys of one place compared, and one air without and with a pad."""
