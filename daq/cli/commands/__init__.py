"""The words of the command line: what can be asked for, and how.

What is then done stands in the modules beside this folder, and is imported when a command runs: `--help` answers at
once.

The modules here do not postpone their annotations: typer would evaluate each as text, a sixth of the time of `--help`.
"""
