-- Eight simulated channels: a bench that costs nothing and does a year in seconds.
local channels = {}
for i = 1, 8 do
  channels["S" .. i] = simulated {}
end

return bench {
  title = "Eight simulated channels",
  channels = channels,
}
