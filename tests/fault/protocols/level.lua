-- Brings a cell to a known state, wherever it stood: above the upper level, then down to the lower one.
return function(cell)
  cell:charge { current = "0.1 It", stop = { voltage = "1.30 V" } }
  return cell:discharge { current = "0.2 It", stop = { voltage = "1.20 V" } }
end
