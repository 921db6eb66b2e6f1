-- Twenty-four simulated channels: a bench that costs nothing and does a year in seconds. Each states what its meter
-- promises, as a real one would from the sheets of its instruments: every result then carries its uncertainty.
local channels = {}
for i = 1, 24 do
  channels["S" .. i] = simulated {
    accuracy = { voltage = "0.05 % + 1 mV", current = "0.1 % + 0.5 mA", temperature = "0.5 K", shared = 0 },
  }
end

return bench {
  title = "Twenty-four simulated channels",
  channels = channels,
}
