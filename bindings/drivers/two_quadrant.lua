-- A two-quadrant source: gives a current to the cell up to a voltage, or takes one down to a voltage.
-- Subsystems SOURce, OUTPut and MEASure of SCPI-1999; the common commands of IEEE 488.2. One output.
-- Current counts positive into the cell, in what it is set to and in what it tells.

local function set(self, header, value)
  self:tell(header .. " " .. nr3(value))
  self:check()
  local is = number(self:ask(header .. "?"))
  if math.abs(is - value) > 0.01 * math.abs(value) + 0.005 then
    fail(header .. " was set to " .. nr3(value) .. " and is " .. nr3(is), "stay within what it can do")
  end
end

local function is_on(self)
  return boolean(self:ask("OUTP?"))
end

return driver {
  title = "two-quadrant source (SCPI-1999)",
  can = { "source", "sink" },
  safe = "OUTP OFF",
  sync = { ask = "*IDN?" },
  settings = {
    remote = "",     -- sent before all else, such as SYST:REM on a serial line
    highest = 5.0,   -- V it is set to while it discharges, where the channel has no voltage_most
    floor = "",      -- how the lowest voltage is set, such as VOLT:LIM:LOW; "": it cannot be
  },

  identify = function(self)
    return identity(self:ask("*IDN?"))
  end,

  prepare = function(self)
    if self.settings.remote ~= "" then self:tell(self.settings.remote) end
    self:tell("*CLS")
    self:check()
  end,

  drive = function(self, want)
    if want.mode ~= "current" then
      fail("it cannot hold a " .. want.mode, "give a current")
    end
    set(self, "VOLT", want.voltage_most or self.settings.highest)
    if self.settings.floor ~= "" then
      set(self, self.settings.floor, want.way == "discharge" and want.voltage_least or 0)
    end
    set(self, "CURR", want.current)
    self:tell("OUTP ON")
    self:ask("*OPC?")
    self:check()
    if not is_on(self) then
      fail("its output does not go on", "see whether its protection has tripped")
    end
  end,

  off = function(self)
    self:tell("OUTP OFF")
    self:ask("*OPC?")
    if is_on(self) then
      fail("its output does not go off", "turn it off by hand")
    end
  end,

  read = {
    { ask = "MEAS:VOLT?", gives = "voltage" },
    { ask = "MEAS:CURR?", gives = "current" },
    -- Else its zero would pass for a current that tapered off.
    { ask = "OUTP?", on = "its output went off by itself" },
  },
}
