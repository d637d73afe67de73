"""The virtual-time world: the real core against simulated boards, shades, a broker, people and faults."""
