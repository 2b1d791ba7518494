"""The drill: bad bales dealt from the model, judged by the planner, brought back when due."""
