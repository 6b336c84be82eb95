"""Give it to my colleagues: one page, figures with captions, tables.

`write_report` writes them beside the results of a study. `page` makes the page, `first_look` what stands first on it,
`patterns` the fits as it draws them, `methods` how the numbers came about, `pictures` the figures; what it says of
comparisons and samples stands in `xrdorder.views`. Names of users are text everywhere, never markup.
"""
