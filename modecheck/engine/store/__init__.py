"""Products larger than memory: states in files, partition by partition and level by level.

The states of a level in one partition are an immutable, sorted, packed file. A level is expanded by
tasks that are pure functions of files, so each can be done again after a crash, by whichever
process. Known states are left out when a level is merged, all at once (delayed duplicate detection:
Stern & Dill 1998, Korf 2004); runs of known states are merged geometrically, as in log-structured
merge trees (O'Neil, Cheng, Gawlick, O'Neil 1996).
"""
