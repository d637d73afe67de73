"""From a shade that has just been built to settings that can be trusted: what to ask, move, and learn."""
