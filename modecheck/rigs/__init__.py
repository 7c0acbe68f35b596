"""Machines that run: each chip of a device as a machine of the library `transitions`, wired
together by links and signals, for simulators and test rigs.
"""
