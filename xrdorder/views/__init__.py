"""What does a result say of itself? Paragraphs and tables that terminal, page and notebook draw alike; tidy numbers.

Each kind of result has its module, which registers what it shows with the functions of `showing`; results inherit
`xrdorder.display.Displayed`, which names that module and loads it when it is asked for. What is said of one result is
said once: `compare` on the terminal, the part of the page on comparisons and a `StudyComparison` in a notebook are the
same paragraphs and tables.
"""

from xrdorder.views.showing import frame, notebook, parts, plot, table, text, title

__all__ = ["frame", "notebook", "parts", "plot", "table", "text", "title"]
