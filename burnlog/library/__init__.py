"""The library's front door: open a log, learn from it, bid, show the result, from Python.

Functions that learn take an open log or its frames, and the fields of `burnlog.analyses.scope.Scope` as keywords
(``family="exothermic"``, ``jobs="PIER12"``, ``since=date(2024, 1, 1)``). Results are frozen: `as_json` gives one as
plain numbers in SI with the unit in the name, `text` as the command prints it, `draw` as charts. The heavy
libraries load when a function runs, not on import. The examples run on the log that ``burnlog demo demo`` leaves;
its contractor, jobs and every figure are MADE UP.
"""
