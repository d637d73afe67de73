"""The physical truth that the bridge never sees: cloth, motors and boards that behave like the real ones."""
