# The other opinion: reads named series (one a line: NAME value value ...) and prints what this
# language makes of them, one NAME value a line, 17 digits. Called by test_oracle.c; base packages
# only, and survival where it is installed.
lines <- strsplit(readLines(commandArgs(TRUE)[1]), " ")
d <- setNames(lapply(lines, function(l) as.numeric(l[-1])), sapply(lines, `[`, 1))
say <- function(name, value) cat(name, format(unname(value), digits = 17), "\n")

say("mean", mean(d$a)); say("sd", sd(d$a)); say("q90", quantile(d$a, 0.9))
say("upper_quartile", quantile(d$a, 0.75)); say("low", t.test(d$a)$conf.int[1])
say("t_factor", qt(0.975, 7.3)); say("t_factor_small", qt(0.995, 1))
say("t_tail", 2 * pt(-3.7, 4.6))

w <- t.test(d$a, d$b)
say("welch_t", w$statistic); say("welch_freedom", w$parameter); say("welch_p", w$p.value)
say("welch_low", w$conf.int[1]); say("welch_high", w$conf.int[2])
y <- c(d$a, d$b, d$c)
g <- factor(rep(1:3, c(length(d$a), length(d$b), length(d$c))))
v <- anova(lm(y ~ g))
say("anova_f", v[1, 4]); say("anova_p", v[1, 5])
o <- oneway.test(y ~ g)
say("welch_f", o$statistic); say("welch_f_freedom", o$parameter[2]); say("welch_f_p", o$p.value)
k <- kruskal.test(y, g)
say("kruskal_h", k$statistic); say("kruskal_p", k$p.value)
r <- wilcox.test(d$a, d$b, exact = TRUE)
say("rank_sum", r$statistic); say("rank_sum_p", r$p.value)
r <- wilcox.test(round(d$a / 10), round(d$b / 10), exact = FALSE)
say("rank_sum_ties", r$statistic); say("rank_sum_ties_p", r$p.value)
r <- wilcox.test(d$x, d$y, paired = TRUE, exact = TRUE)
say("signed", r$statistic); say("signed_p", r$p.value)
r <- t.test(d$y, d$x, paired = TRUE)
say("paired_t", r$statistic); say("paired_p", r$p.value); say("paired_high", r$conf.int[2])
adjusted <- p.adjust(d$p, "holm")
for (i in seq_along(adjusted)) say(paste0("holm", i - 1), adjusted[i])
f <- friedman.test(matrix(d$judged, ncol = 4, byrow = TRUE))
say("friedman_chi2", f$statistic); say("friedman_p", f$p.value)

aicc <- function(fit, n, k) AIC(fit) + 2 * k * (k + 1) / (n - k - 1)
n <- length(d$t)
course <- data.frame(t = d$t, r = d$r)
how <- nls.control(tol = 1e-10, maxiter = 500, warnOnly = TRUE)
curve <- function(form, start) suppressWarnings(nls(form, course, start = start, control = how))
fits <- list(line = lm(r ~ t, course),
             exponential = curve(r ~ a * exp(-k * t), list(a = 1, k = 0.001)),
             power = curve(r ~ a - b * t^p, list(a = 1, b = 0.02, p = 0.5)))
for (form in names(fits)) {
  fit <- fits[[form]]
  s <- coef(summary(fit))
  for (i in seq_len(nrow(s))) {
    say(paste0(form, i - 1), s[i, 1]); say(paste0(form, "_error", i - 1), s[i, 2])
  }
  say(paste0(form, "_aicc"), aicc(fit, n, nrow(s) + 1)); say(paste0(form, "_rss"), deviance(fit))
}
at <- data.frame(t = 400)
say("line_low", predict(fits$line, at, interval = "confidence")[2])
say("line_predicted_high", predict(fits$line, at, interval = "prediction")[3])
e <- coef(fits$exponential)
slope <- c(exp(-e["k"] * 400), -400 * e["a"] * exp(-e["k"] * 400))
say("exponential_at_error", sqrt(slope %*% vcov(fits$exponential) %*% slope))

v <- cov(cbind(d$t, d$r, d$judged[1:n])) / n
jacobian <- rbind(c(1, 2, 3), c(-0.5, 0.25, 2))
out <- jacobian %*% v %*% t(jacobian)
say("propagated00", out[1, 1]); say("propagated01", out[1, 2]); say("propagated11", out[2, 2])

cells <- factor(d$run_cell); channel <- factor(d$run_channel); contrasts(channel) <- "contr.sum"
b <- lm(d$run_value ~ cells + channel)
s <- coef(summary(b))
first <- nrow(s) - nlevels(channel) + 2
say("bias0", s[first, 1]); say("bias0_error", s[first, 2]); say("bias_sd", summary(b)$sigma)
f <- anova(lm(d$run_value ~ cells), b)
say("bias_f", f[2, 5]); say("bias_p", f[2, 6])

if (requireNamespace("survival", quietly = TRUE)) {
  time <- survival::Surv(c(d$life1, d$life2), c(d$ended1, d$ended2))
  arm <- rep(1:2, c(length(d$life1), length(d$life2)))
  fit <- summary(survival::survfit(survival::Surv(d$life1, d$ended1) ~ 1))
  last <- length(fit$time)
  say("survival_part", fit$surv[last]); say("survival_error", fit$std.err[last])
  say("survival_low", fit$lower[last]); say("survival_high", fit$upper[last])
  say("survival_median", fit$table["median"])
  test <- survival::survdiff(time ~ arm)
  say("log_rank", test$chisq); say("expected", test$exp[1])
}
