"""The words for OK, yes and no, which are never taken for a slip of the thumb in another word."""

YES = frozenset(
    "y yes yep yeah yup ya yea ye ok okay okey oki k kk okk sure true correct right aye affirmative".split()
)
NO = frozenset("n no nope nah nay negative false wrong never none".split())
DONE = frozenset("done ready finished complete completed sealed shut closed bagged".split())
ALL = YES | NO | DONE
