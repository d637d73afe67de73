"""What the bridge says and hears on the broker: the session, the device tree, an embedded broker."""
