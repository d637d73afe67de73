"""One file per rule: `NAME`, `Params` and `demand(view, params)`."""
