"""Every link's account in decibels: how loud everything is at its receiver, and the margin."""
