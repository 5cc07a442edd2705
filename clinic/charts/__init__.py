"""Charts as SVG. Pure: no Django; matplotlib is imported by the modules that draw with it, and nowhere
else.
"""
