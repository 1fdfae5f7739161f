"""The rules that give a number its unit, doubt and role. ``roles`` puts these steps together."""
