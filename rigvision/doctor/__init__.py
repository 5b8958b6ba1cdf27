"""Whether this installation can do its work, and what mends it where it cannot.

Nothing but Python's own library is imported before a check runs, and each check runs in a
Python of its own (``child.py``): a library that is missing, broken or crashes is then what
the check finds, and no other check notices.
"""
