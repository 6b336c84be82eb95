"""How does a figure look? What all figures share.

`layout` gives the sizes, the page with room for panels, the widths of lines, the look of axes and their scales, words
at a place, `panel` axes that are drawn quickly, `palette` the colours, `text` letters and symbols, `lots` the marks of
wire lots, `parts` what several figures draw alike: intervals, lines with bands, published samples, names of rows,
legends.
"""
