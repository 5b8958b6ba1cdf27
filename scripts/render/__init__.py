"""Path-traced photographs of the demonstration rig, with their truth beside them.

Shares no code with the solver: the projection, the drive and the decision used for
the truth files are written here a second time, on purpose.
"""
