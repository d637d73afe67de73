"""One file per way of talking to a channel; the catalogue finds them by `NAME`."""
