"""HTTP messages as they went over the line, taken down hop by hop and given again."""
