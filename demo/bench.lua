-- Twenty-four simulated channels: a bench that costs nothing and does a year in seconds.
local channels = {}
for i = 1, 24 do
  channels["S" .. i] = simulated {}
end

return bench {
  title = "Twenty-four simulated channels",
  channels = channels,
}
