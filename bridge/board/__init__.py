"""The program for the boards: board contract version 1 in MicroPython.

These files are copied to a board as they stand (README.md says how) and also run under CPython. They
import nothing of the project but each other. Only `device.py` and `pulses.py` know a real board; `bench.py`
stands in for one on a computer.
"""
