"""Step 8: the logbook. One SQLite file of records, a folder of recordings beside it.

Start at ``store.Logbook``. It knows ServiceRecord and nothing of the steps before it.
"""
