"""What do all samples together say?"""
