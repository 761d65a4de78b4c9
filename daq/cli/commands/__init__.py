"""The words of the command line: what can be asked for, and how.

What is then done stands in the modules beside this folder, and is imported when a command runs: `--help` answers at
once.
"""
