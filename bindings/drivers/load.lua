-- An electronic load: takes a current, a power, or what a resistance takes. Subsystems SOURce, INPut
-- and MEASure of SCPI-1999; the common commands of IEEE 488.2. One input.

local modes = { current = "CURR", power = "POW", resistance = "RES" }

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
  return boolean(self:ask("INP?"))
end

return driver {
  title = "electronic load (SCPI-1999)",
  can = { "sink" },
  safe = "INP OFF",
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

  -- From one level to another of the same mode it stays on: a pulse has no hole in it.
  drive = function(self, want)
    local mode = modes[want.mode]
    if self.on and self.mode ~= mode then
      self:tell("INP OFF")
      self.on = false
    end
    self:tell("FUNC " .. mode)
    set(self, mode, want.amount)
    self:tell("INP ON")
    self:ask("*OPC?")
    self:check()
    if not is_on(self) then
      fail("its input does not go on", "see whether its protection has tripped")
    end
    self.on, self.mode = true, mode
  end,

  off = function(self)
    self.on = false
    self:tell("INP OFF")
    self:ask("*OPC?")
    if is_on(self) then
      fail("its input does not go off", "turn it off by hand")
    end
  end,

  read = {
    { ask = "MEAS:VOLT?", gives = "voltage" },
    { ask = "MEAS:CURR?", gives = "current" },
    -- Else its zero would pass for a current that ended.
    { ask = "INP?", on = "its input went off by itself" },
  },
}
