"""Statistics that know nothing of officiating: counts in, figures with their uncertainty out. Pure functions.

    intervals    how sure a share is: Wilson, Clopper-Pearson, tails of the beta and binomial distributions
    detection    two kinds of error apart: sensitivity and criterion, and which way someone leans
    sequential   two-sided tests that stop as soon as they know, with their exact error rates
    items        how hard a question is, how able a person, whether a key is wrong or a question is known
    agreement    how far several judges agree, and what their votes say together
    crew         at least one of several who share a view
    forms        several forms of equal difficulty from one bank, or why there are none
    upkeep       evidence that fades, and the day it is no longer enough
    ranking      rates from counts, and what comes first at what cost

Habits: arguments are checked first and a wrong one is a ValueError; what cannot be told from the data is None, never
nan and never 0, beside its count; chance comes from a `seed`. Every example in a docstring is run by a test.
"""
