-- A milliohm meter or battery tester that measures internal resistance by alternating current of about
-- 1 kHz through four wires. SCPI-1999, volume 4, digital meters; the common commands of IEEE 488.2.
--
-- Cautions. Use one made for cells: a common ohmmeter sends direct current, and is damaged by a cell's
-- voltage. See the highest voltage that it bears. What hangs beside the cell (an output that is off has
-- capacitors) takes some of the current: part it by a relay. Zero it with the leads as they will lie.

local factors = { ohm = 1, mohm = 0.001 }

return driver {
  title = "1 kHz milliohm meter (SCPI-1999)",
  can = { "ohmmeter" },
  sync = { ask = "*IDN?" },
  settings = {
    remote = "",             -- sent before all else, such as SYST:REM on a serial line
    configure = "CONF:RES",  -- sent once; "": nothing
    ask = "READ?",           -- what makes it measure and tell: also MEAS:RES?, or FETC? where it never stops
    item = 1,                -- which number of its answer is the resistance, where it tells several
    unit = "ohm",            -- what it tells: ohm or mohm
    open = 9.8e37,           -- what it tells without contact: this or more, as it tells it
    patience = 0,            -- s for one reading; 0: the link's
  },

  identify = function(self)
    return identity(self:ask("*IDN?"))
  end,

  prepare = function(self)
    if not factors[self.settings.unit] then
      fail("it cannot tell " .. self.settings.unit, "write ohm or mohm")
    end
    if self.settings.remote ~= "" then self:tell(self.settings.remote) end
    self:tell("*CLS")
    if self.settings.configure ~= "" then self:tell(self.settings.configure) end
    self:ask("*OPC?")
    self:check()
  end,

  read = function(self)
    local text = fields(self:ask(self.settings.ask, self.settings.patience))[self.settings.item]
    if not text then
      fail("its answer has no number " .. self.settings.item, "see its manual for what it answers")
    end
    local told = tonumber(text)
    if told and math.abs(told) >= self.settings.open then
      fail("it reports overload: one of its four wires does not touch the cell", "see its contacts and leads")
    end
    return { resistance = number(text) * factors[self.settings.unit] }
  end,
}
