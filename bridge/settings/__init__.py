"""The owner's settings: read from a TOML file, checked whole, converted at once to plain values.

Every fault of a file is found before anything is said, so that one look mends them all. Nothing here
knows the broker or the boards; it only knows what may be written about them.
"""

from bridge.settings.faults import ConfigFaults
from bridge.settings.load import load, load_text
from bridge.settings.plain import BrokerSettings, Settings, Site

__all__ = ["BrokerSettings", "ConfigFaults", "Settings", "Site", "load", "load_text"]
