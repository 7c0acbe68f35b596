"""Executable machines: each chip of a device as a machine of the library `transitions`, connected
by links and signals, for simulators and test rigs.
"""
