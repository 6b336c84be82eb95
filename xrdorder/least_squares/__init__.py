"""How are parameters of a model fitted to counts, and what does the residual say of the model?

`engines` minimise, `refinement` holds data, weights and rounds of one pattern, `quality` judges the agreement, and
`score_test` tells by how much an effect that was left out would improve the fit.
"""
