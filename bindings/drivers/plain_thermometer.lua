-- A thermometer that answers a question with a number on a line, in degrees Celsius.

local function setting(name)
  return function(self) return self.settings[name] end
end

return driver {
  title = "thermometer, a number a line",
  can = { "thermometer" },
  settings = {
    ask = "READ?",  -- what makes it print
    name = "*IDN?", -- what makes it tell who it is; "": it cannot, and a plausible number is enough
    least = -80.0, most = 300.0, -- degC: beyond these the sensor is taken to be broken
  },

  identify = function(self)
    if self.settings.name ~= "" then
      return identity(self:ask(self.settings.name))
    end
    number(self:ask(self.settings.ask))
    return { model = "thermometer" }
  end,

  read = {
    { ask = setting("ask"), gives = "temperature", least = setting("least"), most = setting("most") },
  },
}
