"""The journal on disk: what happened, what it led to, and the house from time to time."""
