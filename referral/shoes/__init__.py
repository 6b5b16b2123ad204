"""Shoes: outlines by trade category, what fits a foot, the forge's stock, true-scale prints."""
