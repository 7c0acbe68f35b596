"""Tasks of a store on the workers of a Dask cluster, by way of a folder that all of them see.

The scheduler carries the names of files, numbers, and what a task found in a few kilobytes;
whatever is larger lies in a file of the folder meanwhile. Only `connection.py` knows Dask's
library.
"""
