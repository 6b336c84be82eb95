"""What is this number called, and how is it written?"""
