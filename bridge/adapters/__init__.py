"""Everything that is spoken to: one file per thing, none of which decides anything."""
