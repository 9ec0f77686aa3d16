"""Planner of multi-stage limb-deficiency treatment pathways: a planning aid, the treating surgeon decides."""
