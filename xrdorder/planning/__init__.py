"""What to react next? Published kinetics held against the wires of a lot, the best treatment so far, proposals.

* `process` is the model: one vector of parameters, from treatments to everything that is measured of a wire;
* `inference` holds it against measurements, `choice` decides with the draws, `window` says where one may look;
* `planner` does so for one objective of a lot, `study` for a lot of a study, `suggestion` for all of them;
* `adding` writes a chosen proposal into study.toml, `foretold` compares what was predicted of it with what was found.

What is proposed is a place to look, computed from estimates: no instruction to run a furnace, and no ground to build
a magnet on. Rules of the laboratory and of the furnace come first.
"""
