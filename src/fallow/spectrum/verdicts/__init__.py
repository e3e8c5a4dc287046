"""The arithmetic of a verdict: windows against a limit, at a confidence, with reasons."""
