"""Commands: arguments in, exit code out; no decisions."""
