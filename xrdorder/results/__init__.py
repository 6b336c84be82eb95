"""Where is it kept? One file a sample, the collated results, what they were made from."""
