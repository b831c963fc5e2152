# Values of R for the tests of statistics. Made once, so that the tests need no R:
#   python tests/published/r/export_kiwishade.py > /tmp/kiwishade.csv
#   Rscript tests/published/r/values.R /tmp/kiwishade.csv > tests/published/r/values.csv
# Debian 12 packages r-base-core 4.2.2, r-cran-mass, r-cran-lme4 1.1-31, r-cran-lmertest 3.1-3, r-cran-pbkrtest 0.5.2,
# r-cran-multcomp 1.4-22, r-cran-emmeans 1.8.4.
suppressMessages({library(MASS); library(lme4); library(lmerTest); library(pbkrtest); library(multcomp); library(emmeans)})
emm_options(msg.interaction = FALSE)
out <- function(name, value) cat(sprintf("%s,%.12g\n", name, value))
cat("name,value\n")

# Yates (1935), oats: varieties in whole plots, nitrogen in sub-plots; MASS::oats.
oats$N <- factor(oats$N); oats$V <- relevel(oats$V, ref = "Victory")
strata <- summary(aov(Y ~ V * N + Error(B / V), oats))
whole <- strata[["Error: B:V"]][[1]]; sub <- strata[["Error: Within"]][[1]]
out("oats.ss.block", strata[["Error: B"]][[1]][1, "Sum Sq"])
out("oats.ss.V", whole[1, "Sum Sq"]); out("oats.p.V", whole[1, "Pr(>F)"]); out("oats.ms.whole", whole[2, "Mean Sq"])
out("oats.ss.N", sub[1, "Sum Sq"]); out("oats.p.N", sub[1, "Pr(>F)"])
out("oats.ss.VN", sub[2, "Sum Sq"]); out("oats.p.VN", sub[2, "Pr(>F)"]); out("oats.ms.sub", sub[3, "Mean Sq"])
split <- lmer(Y ~ V * N + (1 | B / V), oats)
at_level <- as.data.frame(contrast(emmeans(split, ~ V | N, lmer.df = "kenward-roger"), "trt.vs.ctrl", ref = "Victory"))
row <- subset(at_level, N == "0.2cwt" & contrast == "Marvellous - Victory")
out("oats.level.estimate", row$estimate); out("oats.level.se", row$SE); out("oats.level.df", row$df)
within <- as.data.frame(contrast(emmeans(split, ~ N | V, lmer.df = "kenward-roger"), "trt.vs.ctrl", ref = "0.0cwt"))
row <- subset(within, V == "Victory" & grepl("0.6cwt", contrast))
out("oats.sub.estimate", row$estimate); out("oats.sub.se", row$SE); out("oats.sub.df", row$df)

# Kiwifruit shading: four vines to a plot are not replicates (Maindonald and Braun; DAAG::kiwishade).
kiwi <- read.csv(commandArgs(TRUE)[1], stringsAsFactors = TRUE)
means <- aggregate(yield ~ block + shade, kiwi, mean)
plots <- anova(lm(yield ~ block + shade, means))
out("kiwi.f", plots["shade", "F value"]); out("kiwi.p", plots["shade", "Pr(>F)"])
vines <- anova(lm(yield ~ block + shade, kiwi)); out("kiwi.naive.p", vines["shade", "Pr(>F)"])

# Rice, six seeding rates (Gomez and Gomez 1984, p. 26): straight line, bend, and the best rate at a cost of 2 a kg of
# seed in units of yield, by refitting with the best rate held fixed (profile).
rice <- data.frame(
  y = c(5113, 5346, 5272, 5164, 4804, 5254, 5398, 5952, 5713, 4831, 4848, 4542,
        5307, 4719, 5483, 4986, 4432, 4919, 4678, 4264, 4749, 4410, 4748, 4098),
  rate = rep(seq(25, 150, 25), 4), block = factor(rep(1:4, each = 6)))
table <- anova(lm(y ~ block + rate + I(rate^2) + factor(rate), rice))
out("rice.ss.linear", table["rate", "Sum Sq"]); out("rice.p.linear", table["rate", "Pr(>F)"])
out("rice.ss.quadratic", table["I(rate^2)", "Sum Sq"]); out("rice.p.quadratic", table["I(rate^2)", "Pr(>F)"])
out("rice.p.lack", table["factor(rate)", "Pr(>F)"])

# Las Rosas-like maximum inside the range: invented yields, four blocks of five rates.
curve <- data.frame(
  y = c(8.01, 9.12, 9.85, 10.02, 9.71, 7.62, 8.95, 9.41, 9.88, 9.42, 8.33, 9.51, 10.12, 10.21, 10.05, 7.95, 8.84, 9.93, 9.74, 9.51),
  rate = rep(c(0, 40, 80, 120, 160), 4), block = factor(rep(1:4, each = 5)))
cost <- 0.006
full <- lm(y ~ block + factor(rate), curve); s2 <- summary(full)$sigma^2; df <- full$df.residual
rss <- function(best) sum(resid(lm(I(y - cost * rate) ~ block + I((rate - best)^2), curve))^2)
quadratic <- lm(I(y - cost * rate) ~ block + rate + I(rate^2), curve)
best <- unname(-coef(quadratic)["rate"] / (2 * coef(quadratic)["I(rate^2)"]))
limit <- function(x) rss(x) - sum(resid(quadratic)^2) - s2 * qt(0.95, df)^2
out("curve.best", best)
out("curve.low", uniroot(limit, c(20, best), tol = 1e-10)$root); out("curve.high", uniroot(limit, c(best, 300), tol = 1e-10)$root)

# Dunnett's test in blocks: nitrogen timing (Harbur). Multivariate t by quasi-random integration, right to 1e-4.
nitrogen <- data.frame(
  y = c(147.910867, 178.102921, 173.540005, 184.251601, 170.447061, 165.475093, 171.747167,
        147.627132, 191.290760, 176.938848, 191.483578, 162.506600, 169.469317, 180.376780,
        154.213849, 174.654973, 170.741237, 192.627698, 191.574561, 168.278323, 181.212178,
        163.063404, 183.025944, 177.895534, 196.736972, 179.077489, 168.647970, 184.156227),
  t = factor(rep(1:7, 4)), block = factor(rep(1:4, each = 7)))
set.seed(1)
dunnett <- summary(glht(lm(y ~ block + t, nitrogen), linfct = mcp(t = "Dunnett")), test = adjusted(abseps = 1e-7, maxpts = 1e6))
for (i in 1:6) out(paste0("nitrogen.p.", i + 1), dunnett$test$pvalues[i])

# Incomplete blocks: catalysts (Montgomery, example 4-5), Kenward and Roger by pbkrtest; and six blocks with lost strips.
incomplete <- function(name, y, t, b) {
  d <- data.frame(y = y, t = factor(t), b = factor(b))
  m <- lme4::lmer(y ~ t + (1 | b), d); m0 <- lme4::lmer(y ~ 1 + (1 | b), d)
  test <- KRmodcomp(m, m0)$test
  out(paste0(name, ".f"), test["Ftest", "stat"]); out(paste0(name, ".ddf"), test["Ftest", "ddf"]); out(paste0(name, ".p"), test["Ftest", "p.value"])
  rows <- as.data.frame(contrast(emmeans(m, "t", lmer.df = "kenward-roger"), "trt.vs.ctrl", adjust = "none"))
  for (i in seq_len(nrow(rows))) for (k in c("estimate", "SE", "df")) out(paste0(name, ".", k, ".", i + 1), rows[i, k])
}
incomplete("catalyst", c(73, 73, 75, 74, 75, 75, 67, 68, 72, 71, 72, 75), c(1, 3, 4, 1, 2, 3, 2, 3, 4, 1, 2, 4), rep(1:4, each = 3))
incomplete("lost", c(61.0, 64.5, 66.1, 58.2, 60.3, 63.0, 63.3, 66.0, 65.1, 70.2, 59.9, 60.8, 62.2, 60.1, 63.8, 61.5, 57.0, 61.9, 62.7),
           c(1, 2, 4, 1, 3, 4, 1, 2, 3, 4, 2, 3, 4, 1, 2, 3, 1, 2, 4), rep(1:6, c(3, 3, 4, 3, 3, 3)))

# One fixed order: pairs A B A B ... and four treatments in the same order in six blocks; a straight trend, random blocks.
fixed <- data.frame(
  y = c(50.2, 52.1, 53.9, 55.3, 49.7, 53.0, 55.2, 57.3, 53.1, 53.9, 57.4, 60.2),
  t = factor(rep(c("old", "new"), 6), levels = c("old", "new")), place = 1:12, pair = factor(rep(1:6, each = 2)))
m <- lmerTest::lmer(y ~ t + place + (1 | pair), fixed)
rows <- coef(summary(m, ddf = "Satterthwaite"))
out("fixed.estimate", rows["tnew", "Estimate"]); out("fixed.se", rows["tnew", "Std. Error"]); out("fixed.df", rows["tnew", "df"])
out("fixed.slope", rows["place", "Estimate"]); out("fixed.singular", isSingular(m))
loose <- summary(lm(y ~ t + place, fixed))$coefficients
out("loose.estimate", loose["tnew", 1]); out("loose.se", loose["tnew", 2]); out("loose.p", loose["tnew", 4])

# Condition of the pair: the same pairs against a covariate, and by groups.
gap <- fixed$y[fixed$t == "new"] - fixed$y[fixed$t == "old"]; moisture <- c(14.2, 15.1, 13.8, 16.0, 15.5, 14.9)
slope <- summary(lm(gap ~ moisture))$coefficients
out("slope.estimate", slope[2, 1]); out("slope.se", slope[2, 2]); out("slope.p", slope[2, 4])
out("zone.p", anova(lm(gap ~ factor(c("sand", "clay", "sand", "clay", "sand", "clay"))))[1, "Pr(>F)"])
