-- A DC power supply: constant current up to a voltage. SCPI-1999, volume 4, power supplies; the
-- common commands of IEEE 488.2. One output.

-- What it says it was set to must be what was asked, but for its own last digit.
local function set(self, header, value)
  self:tell(header .. " " .. nr3(value))
  self:check()
  local is = number(self:ask(header .. "?"))
  if math.abs(is - value) > 0.01 * value + 0.005 then
    fail(header .. " was set to " .. nr3(value) .. " and is " .. nr3(is), "stay within what it can do")
  end
end

local function is_on(self)
  return boolean(self:ask("OUTP?"))
end

return driver {
  title = "DC power supply (SCPI-1999)",
  can = { "source" },
  safe = "OUTP OFF",
  sync = { ask = "*IDN?" },
  settings = {
    remote = "", -- sent before all else, such as SYST:REM on a serial line
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
      fail("a supply cannot hold a " .. want.mode, "give a current")
    end
    set(self, "VOLT", want.voltage_most)
    set(self, "CURR", want.amount)
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
