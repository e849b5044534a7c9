"""The works a methods text cites, by key; one line each, in full."""

from __future__ import annotations

REFERENCES: dict[str, str] = {
    "axes": "Wu G, van der Helm FCT, Veeger HEJ, Makhsous M, Van Roy P, Anglin C, Nagels J, "
    "Karduna AR, McQuade K, Wang X, Werner FW, Buchholz B (2005). ISB recommendation on "
    "definitions of joint coordinate systems of various joints for the reporting of human joint "
    "motion – Part II: shoulder, elbow, wrist and hand. Journal of Biomechanics 38(5):981–992. "
    "doi:10.1016/j.jbiomech.2004.05.042",
    "rhythm": "Braman JP, Engel SC, LaPrade RF, Ludewig PM (2009). In vivo assessment of "
    "scapulohumeral rhythm during unconstrained overhead reaching in asymptomatic subjects. "
    "Journal of Shoulder and Elbow Surgery 18(6):960–967. doi:10.1016/j.jse.2009.02.001",
    "spikes": "Hampel FR (1974). The influence curve and its role in robust estimation. Journal of "
    "the American Statistical Association 69(346):383–393. doi:10.1080/01621459.1974.10482962",
    "low_pass": "Winter DA (2009). Biomechanics and motor control of human movement, 4th ed. "
    "Hoboken: Wiley. doi:10.1002/9780470549148",
    "orientation": "Laidig D, Seel T (2023). VQF: highly accurate IMU orientation estimation with "
    "bias estimation and magnetic disturbance rejection. Information Fusion 91:187–204. "
    "doi:10.1016/j.inffus.2022.10.014",
    "onset": "Flash T, Hogan N (1985). The coordination of arm movements: an experimentally "
    "confirmed mathematical model. Journal of Neuroscience 5(7):1688–1703. "
    "doi:10.1523/JNEUROSCI.05-07-01688.1985",
    "directions": "Fisher R (1953). Dispersion on a sphere. Proceedings of the Royal Society of "
    "London A 217(1130):295–305. doi:10.1098/rspa.1953.0064",
    "slope": "Theil H (1950). A rank-invariant method of linear and polynomial regression "
    "analysis, I, II and III. Proceedings of the Koninklijke Nederlandse Akademie van "
    "Wetenschappen 53:386–392, 521–525 and 1397–1412",
    "slope_with_ties": "Sen PK (1968). Estimates of the regression coefficient based on "
    "Kendall’s tau. Journal of the American Statistical Association 63(324):1379–1389. "
    "doi:10.1080/01621459.1968.10480934",
    "strongly_autocorrelated": "Müller UK (2014). HAC corrections for strongly autocorrelated time "
    "series. Journal of Business & Economic Statistics 32(3):311–322. "
    "doi:10.1080/07350015.2014.931238",
    "spectrum": "Welch PD (1967). The use of fast Fourier transform for the estimation of power "
    "spectra: a method based on time averaging over short, modified periodograms. IEEE "
    "Transactions on Audio and Electroacoustics 15(2):70–73. doi:10.1109/TAU.1967.1161901",
    "arc_length": "Balasubramanian S, Melendez-Calderon A, Burdet E (2012). A robust and sensitive "
    "metric for quantifying movement smoothness. IEEE Transactions on Biomedical Engineering "
    "59(8):2126–2136. doi:10.1109/TBME.2011.2179545",
    "jerk": "Balasubramanian S, Melendez-Calderon A, Roby-Brami A, Burdet E (2015). On the "
    "analysis of movement smoothness. Journal of NeuroEngineering and Rehabilitation 12:112. "
    "doi:10.1186/s12984-015-0090-9",
    "contact": "Bicchi A, Salisbury JK, Brock DL (1993). Contact sensing from force measurements. "
    "The International Journal of Robotics Research 12(3):249–262. "
    "doi:10.1177/027836499301200304",
    "uncertainty": "Joint Committee for Guides in Metrology (2008). Evaluation of measurement "
    "data – Guide to the expression of uncertainty in measurement. JCGM 100:2008",
    "numpy": "Harris CR, Millman KJ, van der Walt SJ, et al. (2020). Array programming with NumPy. "
    "Nature 585:357–362. doi:10.1038/s41586-020-2649-2",
    "scipy": "Virtanen P, Gommers R, Oliphant TE, et al. (2020). SciPy 1.0: fundamental algorithms "
    "for scientific computing in Python. Nature Methods 17:261–272. "
    "doi:10.1038/s41592-019-0686-2",
}
"""Compared with the bibliographic records of others that can be read in public (authors, year,
title, journal, volume, pages, doi); from memory are Winter's book, the guide of the JCGM, the
issue numbers and the pages and doi of Bicchi et al."""
