"""One file per kind of sensor: `NAME`, `UNITS`, `USUAL` and `decode(source, payload, at)`; no socket."""
