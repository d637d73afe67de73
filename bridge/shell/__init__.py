"""The daemon: it waits, asks the core, and acts; it owns the clock, randomness, signals and logging."""
