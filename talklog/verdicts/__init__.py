"""How a reading stands to the bands of a sheet. ``check`` puts these steps together."""
