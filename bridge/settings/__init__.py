"""The owner's settings: read from a TOML file, checked whole, converted at once to plain values.

Every fault of a file is found before anything is said, so that one look mends them all. Nothing here
knows the broker or the boards; it only knows what may be written about them. Nothing is imported here: who
needs the plain values only must not pay for the models.
"""
