"""Wound healing: areas, progress, forecast, verdict, survival. Pure: no Django, no clock.

Units inside: mm, mm², days; a rate of the margin in mm a week. Dates are arguments.
"""
