-- A relay board or scanner with closed and open relays. SCPI-1999, volume 4, signal switchers; the
-- common commands of IEEE 488.2.

local function is_closed(self, point)
  return boolean(self:ask("ROUT:CLOS? (@" .. point .. ")"))
end

return driver {
  title = "relay board (SCPI-1999)",
  can = { "relay" },
  safe = "ROUT:OPEN:ALL",
  sync = { ask = "*IDN?" },
  settings = {
    remote = "",    -- sent before all else, such as SYST:REM on a serial line
    settle = 0.02,  -- s that contacts may bounce
  },

  identify = function(self)
    return identity(self:ask("*IDN?"))
  end,

  prepare = function(self)
    if self.settings.remote ~= "" then self:tell(self.settings.remote) end
    self:tell("*CLS")
    self:check()
  end,

  connect = function(self, point)
    self:tell("ROUT:CLOS (@" .. point .. ")")
    self:ask("*OPC?")
    self:check()
    if not is_closed(self, point) then
      fail("relay " .. point .. " does not close", "see the board")
    end
    self:wait(self.settings.settle)
  end,

  disconnect = function(self, point)
    self:tell("ROUT:OPEN (@" .. point .. ")")
    self:ask("*OPC?")
    self:check()
    if is_closed(self, point) then
      fail("relay " .. point .. " does not open", "take the cell out by hand")
    end
    self:wait(self.settings.settle)
  end,
}
