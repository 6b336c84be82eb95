"""Where does this number come from?"""
