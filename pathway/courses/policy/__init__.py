"""An exact policy under uncertainty: at every visit the best thing to do in every state that the visit can find."""
