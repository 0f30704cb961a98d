"""Pure functions of SI floats: no spec, no files, nothing else of this project.

Every argument carries its unit in its name. Outside its range of validity, and for NaN or
infinity, a function raises ``ValueError``. Functions that are plain arithmetic also take
numpy arrays; those that search or branch take floats only.
"""
