"""What a failing check may mean: each of the trade's usual blunders predicted, scored and put in words."""
