"""The day ahead: how few moves keep every promise of the rules."""
