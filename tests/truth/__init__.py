"""Outside checks: what the program finds against formulas, published figures and other programs.

T1 to T27 and O1 to O24 are the numbers of the project's list of known answers; each test states its formula
and its source.  Expected values never come from the program. `agrees` compares within 4 exact standard errors
(the derivation stands beside it), seeds are fixed. Every check has a negative control: `spoilt` runs the same
check on a spoilt model and fails where it passes.
"""
