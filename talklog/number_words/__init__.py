"""Step 3a, up to the choice between readings: number words -> tokens -> atoms -> cheapest paths.

``numbers`` puts these steps in a row; no other module needs them.
"""
