"""Labels of things: what stands on them, which sheets they are printed on, and the PDF.

``codes`` and ``layouts`` are pure; ``pdf`` and ``svg`` draw.
"""
