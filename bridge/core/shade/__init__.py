"""The mechanics of one shade: roll, drive, move profile, lifting, holding."""
