"""An exact policy under uncertainty: at every visit the best thing to do in every state that the visit can find.

`programme` holds what is given (`Programme`); `policy.best_policy` gives all that is told of it.
"""
