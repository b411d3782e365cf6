"""What can be done to a casebook, one function an act. Views call these and nothing else writes.

Each act is one transaction: the rows, their record of change and the act itself are saved together or not at all.
The first argument is always the device that acts.
"""
