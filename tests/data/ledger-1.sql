PRAGMA application_id = 1380534102;
BEGIN TRANSACTION;
CREATE TABLE check_recorded (
    sequence INTEGER PRIMARY KEY,
    record TEXT NOT NULL UNIQUE,
    job TEXT NOT NULL COLLATE NOCASE,
    stage TEXT,
    gauge TEXT COLLATE NOCASE,
    frame TEXT COLLATE NOCASE,
    door INTEGER,
    verdict TEXT NOT NULL,
    borderline INTEGER NOT NULL,
    recorded_at TEXT NOT NULL,
    taken_at TEXT,
    photo_sha256 TEXT NOT NULL,
    image_sha256 TEXT NOT NULL,
    core_sha256 TEXT NOT NULL,
    result_sha256 TEXT NOT NULL
) STRICT;
INSERT INTO "check_recorded" VALUES(5,'AAAAAAAA','J-0001',NULL,'RG-10','DF-10',3,'pass',0,'2026-11-26T14:58:00.454460Z','2026-02-03T10:11:12','c34ab6abb7b2bb595bc25c3b388c872fd1d575819a8f55cc689510285e212385','22a3e85b32f6d1d8b4d7ce9fc6642cb54a853dd5d6e1197a6ad50dccac6f640a','8614d095def86e253a33325187dc6b17c9f93f4af3cd3d00eef8e35f6fe534c4','d202e5d052a5d41f6e7ac37b81ddfc78284c0d80884316ffae2d008aff9aeb25');
INSERT INTO "check_recorded" VALUES(7,'BBBBBBBB','J-0001',NULL,NULL,NULL,3,'retake',0,'2026-11-26T14:58:00.500364Z','2026-02-03T10:11:12','2f858775d71cc4ece5f46f497c58c01167cd6fc301e56e935070f5e81bfe5890','8d703c01daed254f68c11a95723379121389a19606b9b276c7f16483204865e2','e5abc2b30b335f2b84958ab730e262d52f4b988d03f66d7e8838366d80f77bc8','9d124b69de0d71720f2abd1b70a424c8fa9edeca5ebfc1a87eb510fd26ae3670');
CREATE TABLE correction (
    sequence INTEGER PRIMARY KEY,
    record TEXT NOT NULL,
    replaced_by TEXT
) STRICT;
INSERT INTO "correction" VALUES(8,'BBBBBBBB','AAAAAAAA');
CREATE TABLE entry (
    sequence INTEGER PRIMARY KEY,
    kind TEXT NOT NULL,
    recorded_at TEXT NOT NULL,
    body TEXT NOT NULL,
    previous TEXT NOT NULL,
    hash TEXT NOT NULL,
    signature TEXT NOT NULL
) STRICT;
INSERT INTO "entry" VALUES(1,'ledger-opened','2026-11-26T14:58:00.268453Z','{"ledger":"e118c3fcd76979fd","public_key":"49baf015d5f8bc69cb0419e59f8e740ed7aa1f3dbfdb98b54057910be30ab112","version":"0.1.0"}','0000000000000000000000000000000000000000000000000000000000000000','cec85cc5459ee7b275a6ccc61bf2abba158fc894dd2eff22e5571ec7614cc542','18f82b26d5038527a0e154b03bc219186806007fd95827cfc1bac77ad7e1e81ab26b5fc6719ef265e68198fcf34e54bd9d5a2dc19e8ec181005ee4f15834bc01');
INSERT INTO "entry" VALUES(2,'person-enrolled','2026-11-26T14:58:00.373073Z','{"fingerprint":"d2a28ec8581826fbe75abecacc30a0b7","person":"M. Ross","public_key":"8b237d788e8eaaef550c6d125823fa45f1fd5fc29b2c88bdf871119471fc1312","role":"mechanic"}','cec85cc5459ee7b275a6ccc61bf2abba158fc894dd2eff22e5571ec7614cc542','fa4b28397716600af0056663c110e6491ab05e01c6a13f6775fe17e7c0d04cdf','007a5ef8eaa8beb64113c34f26eac99429893d09ea258f041fb5416c03934e961f3c288fa0f7ecfc511d644f4ba777a1f2a4d395dff1926aa0410cba689a290e');
INSERT INTO "entry" VALUES(3,'person-enrolled','2026-11-26T14:58:00.373073Z','{"fingerprint":"93bca823e5c824191c0c1d3245465c93","person":"I. Vance","public_key":"e34d3a01b6112e1429ead61668405f4ef4be4f8853abee5079d28ac6c13ffdd0","role":"inspector"}','fa4b28397716600af0056663c110e6491ab05e01c6a13f6775fe17e7c0d04cdf','82d27228a1e76827e3d1dc8465bea341c277238bcc0a39daff46b3568061c3fa','1196d771523212e9b697f39d3a3464723b4bc0b5af51a20096840096504d6bc8ac29664bf9109237340afff5a0f896342a0df29f806967a62d7b4afbbd2c890f');
INSERT INTO "entry" VALUES(4,'job-opened','2026-11-26T14:58:00.373073Z','{"door":3,"engine":"ENG-7","frame":"DF-10","job":"J-0001","opened_by":"M. Ross","position":"ordinary","remark":"","work_order":"WO-J-0001"}','82d27228a1e76827e3d1dc8465bea341c277238bcc0a39daff46b3568061c3fa','20db3ae36c12f4bcebe763e31d4b4db0fd783dea9bfb0d7b461a68bfc622ef08','f22c324927539806548b5ba9188a2e213ab143fdc3d63b9459be9d053931e77e4f340c5a63543e517a6b3f156830c2afd705d369eae3045c84fd1d2a873bf10f');
INSERT INTO "entry" VALUES(5,'check-recorded','2026-11-26T14:58:00.454460Z','{"core":{"definitions":[{"calibration_due":"2027-01-31","kind":"gauge","name":"RG-10","sha256":"ddf3bf38e44441b2b72c9b0133e25f78efafc756acd496140e23f53de51f3e04"}],"follows_count":4,"follows_hash":"20db3ae36c12f4bcebe763e31d4b4db0fd783dea9bfb0d7b461a68bfc622ef08","job":"J-0001","ledger":"e118c3fcd76979fd","photo":{"media_type":"image/jpeg","name":"photo.jpg","sha256":"c34ab6abb7b2bb595bc25c3b388c872fd1d575819a8f55cc689510285e212385","size_bytes":8},"record":"AAAAAAAA","recorded_at":"2026-11-26T14:58:00.454460Z","result_sha256":"d202e5d052a5d41f6e7ac37b81ddfc78284c0d80884316ffae2d008aff9aeb25","schema":"rigvision.record/1","settings":{"door":3},"stage":null,"taken_at":"2026-02-03T10:11:12","versions":{"rigvision":"0"}},"core_sha256":"8614d095def86e253a33325187dc6b17c9f93f4af3cd3d00eef8e35f6fe534c4","flags":[],"image":{"media_type":"image/jpeg","name":"photo.checked.jpg","sha256":"22a3e85b32f6d1d8b4d7ce9fc6642cb54a853dd5d6e1197a6ad50dccac6f640a","size_bytes":128},"likeness":{"camera_mm":[-0.8216843234506257,-9.091608338027143,395.4778918168289],"camera_uncertainty_mm":[0.1,0.1,0.5],"clock_period_deg":360,"figures":{"clock_deg":[-14.69586,0.22214],"gap_mm":[0.43436,0.03301],"lateral_mm":[0.19525,0.02406],"seat_mm":[9.33049,0.04333]},"frame":"DF-10","gauge":"RG-10","marks_px":{},"patches":{"barrel":"BQ69ftLp268CZpR6pcnf9DyrnTk9FX22aPaIaQN0QlaH3HaPikl9nO8vLehKrGy6m9Hu6m26RadcK3VGNC3s+AB3e6XkIS84LalWDCE17usLMVESt7Ngw0o6/oJHnzGlWt2e4Nt5Yl6O4NIoek36gtlmGsQY+d/KSuoM4roiLzQGQtJPq8d4TNxpS7HBXrBMa3tX2a2zZI38HSJf8CZJKq1Ch7Nc0oaz3uWFvO22+3ZMQDaY1c3AFY36NNt66YwfId2H5Uu1KZuqucf1BU+Sg11OPJJyB5Bg2mogLaQl4SdGBSdATK0/bazbtTfQzxLxhuPLkYKNN7hM6fvBmsFCyFiaWA1SA7p+Ebp/rs9xw2QoW5e3SagQo/9QFVliS0xiZbLag/xkcNg7NjAq7TBSi0d52rp5K4v+bOJrCtdDMIagTTH7X5IkF59m1c7Hu1NBRQDioO0t3hmdmXxEe/ilvPRhsel5q24Vh8id9YTcjfmZxZ0jgFwf+OoGmMb9VO2dzMeI189HgPeUPOOob+7Gr3TsTbO8fv4Uel7vcQ4y2dm/b5/sKIqxPXAOofivMNvZDejhYWimo/CigH7N6+tG5wvz0273hLFlH1UtKrVG++jB0lFTFTgpcOsqVyD8xVWf/6us6LRf63wA0Zz1q59GNpYFgx6YFmduqBrGmWvMt4jaX4FoHaDH6OUlOx4FKhepmEikS36KFUeqG4s/+kf8YA5E5L+DJDOPBbsGATS5tfXiRJkw0s5Ch5tuU3Bawj6USIdiBREP4wcYlaWg/YUc+RdoCpszYwM+XVfY1TVdqUJ1HuQ0lQtALLpy50gYOv4lxMHWityCUDOUHvJFEZamT1Xu8pVaQebBQtE5QGQ2FdWuovuu3QpHcsrrhMruS3rcIf0Dz7Ig59rM5z75cLUAK9TTnYtCbmFbUq2lfVztgmsmAQ/bDEkuH6GZ4cQub301YzYPksWMAeEzFx1ikzJvNEFVt0hR94DP","door":"7+BjS3pTZ3SkRN+zI7VuUl41Gn+rDkl5P5k7HWPqDAYajt9PDGj1YsxK5VeFU8Fr4PXTywxYIzAh3idCc87XGwqi4kBJgVrmpUHruur1loIYhQv6p/yGNbgrL/cWygubSPqAbuSCKdGl3r356FVUBZUcsjn1xJIEzXW2ZVSEfiW7IAsJ6ZkFuIiRu/XsrAQp71QXcswIYbSnfJ2B3u2crUPrOW3NmXGLlwAO1Zs5eTjxGxv674/A+UBDeqEGVT3M/9rusafdP4R6lGpzwFsjOewCHoZXhASmJPnbBz0JGGVXasasDKRqk0Osqs1UKj1S9zfqqI7MhaHN9CFtiYoMD+iaybyVcHFMKMgsIPSCyPc/Q042PQMj4AMKJQyUWm9OACgbErCZx9u5+ZETlP1zTw4RzOr+NHXwwNlBTOlvbL6QR4Ao70OKapf0n5B4ippAIlBhISDDKwKDK4uP76fz4JcdvNnS5bQJ1oIwl4YfxdELALQ3CNBS9imum+Zc6P2R2G36dUaL6CvMHfLTVeYm3mbgsN5oVUn5Jjavx0/cOrSvfXqfyIxFgg6UlAnQkMJgPedNM3R20FjvuVkZeM2sNH01yZK1SpWsL1WF5b/R1W7MmWaXfsKxMe2yCn6ji7saKb8d8EsxfKr8AdtjImvLSzAuDYFB4/J/dTtnBEjaSVOlcbScUJYi34bA/ma1UFHmgaoGSOS9oQS84C4oRRprMy2Hh9uT0OZTPs+mz1pKr/zIFTeQRg1fyLG9mCLs+M5WO7PibeseiTbFqjtEeRaprD4BrhjWk3PWwnUVYYXWo+5tQDGMnYoGWCoLGepXheThOQhz1vZz5q+K2smItxsIfMZymMR+REr8BkJTiEllETwi/rgQNRa4uTWvVwqdmq0VK2cNIkMTcSsLMKMq2X426U0MyIlrFYU2okycRDVwVcLdQA1VJEmnmU3ogYGAcFTXAMRaQWxTPF45+r5W7u4cV4hlKR3YFY1KLmE1PKc5D95YpqnxTJmemkXsj8dAfk30AlwRt1TOI+PThiF9vwimItgQeJQfghmNvk8vxS/EsRqpGBtSSO8ECgbeFmjLzbwS38RWYY81vd1reMH97//ByRpQtyWv9xjUcCEBIGUORVclSFwd9tR8nZVdYJaJ1SrIoy0Z7ZQ0x2AQcZ8T5rweknXO3oxTU0U5gi7jkEkg7RSxaMbzMABIRIuMaV1QYQnk81WpS2mWf5D2gMeIXjTR7P/RQx23XTB1cwaS5Sdz9Ub8PJQbBst5yahitgsynejTXHu1SyhzKwNF7hmd6higq5FtuQOVi3gXk2TdaXxbdx1hmXzT8UuT4mh1NcqA+z4KiKkbMKucWD2jUhfJnfT3/NYOOJb1i8dr1yF6KZs4lR1Rv25zCqTZKkvPTq5WuM09k5qwKEg0d762KFPYtVZTGjrmYm9I2yfpKCz29mbH1mC69HXOWDlj+HMp/YoZ0sLolGR/0SMhRUujgNqMmnzfQI4iLLZsVR16AW+AUFwQohlFOyY1H8PspoYyQlH/jCQKsa36BviHsAJYp2/JopmK+8tc9OzDJ6lLftb6uZ/auJjH/PtR9AIpc3w1KmS4LDNQFbYHZut1HhCr4m4QKw/U6abRPVHZrkX4jWz4mWCVRPj7G7N0nj2CHAAeBEDq5xY316X+yGGXKJ6XvSXHLTHe+p9MJuTuW/yKzfAb3gQ1LbDZJQt4LPttqTh6F1u+dVNCl6/nLjVypoquzDQ11pisTj3Q/zKO1hI/e1dHXE6V1BQYBOrRi6PhR4Dj4xaBk777YGXXwKS4qXISQCoXgSnqpocCCZNhMbqkaRbBVlz60/AJmzg64Gb2Y+r4cvdlaolOlWaCCusXxlOS99Iv5Y0VUbB48Mrv0t3YRsc5lIJuvOSYsN3rkOmETTTn7z7e35ZVA7TXGU9bUotqK4ScpWM4lLrBvM5SAJGY2jCQFz6+vj4zG1w4djs3BQtZ6s5sAmc+ZaPaZqEOhBKb1J9EOsEbjUcnGN4vkycSUdaqusK0OxNV8oEFtGaoogbriQL6R3NKKsIvwMiezMpN9/NbGVtGfvCHBXgpkNbcevfu23xQeCc719YZarBdgBFbGsfWCYTLfPD9U45IvRNChV+CXJoA8yKoTapZmFksuRD4LcahtcawwUkm0iIi/IjYOyQ4HFHSWGaU3Vxd3VEPTT1O01ZcG9JBlrV++6yDWzCu1fn5WusRoxWapCAiS18vVSB1YM3k7fLsNM8uRSQ0baWLqVMV6Usv/rhlayEIQESdx3ng6VDzAi/SKMsw59CAn59mhsnNdjAVrLE6O+gTO46NO1Q511+Nh/H6+AW/X8un/FpPibA8VZc0v46bLWJwhkw4XcFupxiZiSnvayhzWW4MOrz+tviEstwvjPOqWtlOP72AqUDxXBzH1XJ9EGOFnK4AdaD2W5pacv2k6c6tth9uQPScjO1nDkDYuZeKtHB8cOJQ7tlLS76JZRoMdBsmyAKaR01l3yoX1nQFs1b0k+grI0MKQj1IXHy2oj8GjHEGyx4EfaVMdcHueMurak6V7/l7FBOSiFnXBGVP9A+ieROx0ZLdWkOBf5R2lmYjAqfyl5d0CCDhdXQjMzpVQhQdtPsoCzXUldvjRm4L1mXDBGeQ/VGtZhmcEyzTMMmcDujYFmuZyDunR2p8OQbqAV3CdS1N/1iHYr82UQb1OoC79p3k41kaptOpoesnijVwxIwb7hBTv6+yxJyjD3g+u7F6yTl5HwY99MYfUA==","sill":"FsbpyS2ZvzWMLgcYgizkfKjHQQfmbLDksrP01Y2CymOG0sludg6Bm4XJJMNZcWTEpgWKAFgaIrIt5QRyQz0uRP7Ytrg1fkTNMSmQOsHUVZeiQv3xH48rGjnzw+aTEUNR3L7UB+PmtgW5noMG3adIph4Cmoo/QVsCShRs8NmKmOHPmZZh+We9r98OczdCDBP49dQPbOB50bmHN28HvLgSh/3IwDiP6IHDoGYZcO8/bfAUje1+ijSIjTlsqzuA0n9Y3xEaOz3yRa2pCAI4mnjNwpSSqHX3SsbzqiAvStmJL+11WYAFusSKap6Ca9bwqJDqR8pzjrSMFOxTZ22kP56ZGYeNly+aRR2hMFMX/u1nQLm9dCXcsD3gS/Ck8h4K3D6+9oIrVdRtROWoM7O4Tg8n+fepELa2aDSA/JG6764Xm/dZNA9s9sH5gQ04fdRc4wHpSiWZq/X9mTAdj6lNE6u+SKGua5ZoHDT5xCTq4RYx1n/fZKDYpbTf8MVHWoG80rJkGdrIlkgUcdpXr9YIvCfweuM0JD7MIWW+WK8izL1sf2d1exBqr6Esqpg2SizR0/tdTxN+jNe5+uGnevqz2Eudxmsaq6xQsPu8j4nsX3m9IhYWyl9wBgjsqRU9KIIVYqEb4wNIx6Qh6ClEOFyFfhAH17ldrGTYktpe/I1cfUOKlruGOZIHaF0leKz7IQvWyPtOPNkQtKJKKtm7MLL7JTxknY3j2pcNVgOU4/LCZNgGrKVOAZwr8P4oK9S0koDHkBg6+19p+00yJgM9AUHFMYETM2teJIrOyIrrZPM73PjoX4wH5W87o1qKZymKhoMi+QRYEefU8xg089hOXOqT+ixwWiuoiXVhtOXo63/vREJNwqhofEmMy87jm4WSBfV/+Lm6QSd2Acd7OWIboZ3IhwRh21ldC9I3s2P0N6rc4qfcPvC3oZG9GDIzg+jKI8+PfRYhmRnIhGmAA8csJrWPkK6aNFtHFG1XzSDzuhheDgt9KXtM/LjebFdfXfp565GWPO2NCK0oM/RC5vBTXDWB3ZXUaUkNJHz/zTfQQ5ZWW6+5F2oIkJhYqNtnAAK/2Ym+nkSKKQGdn0NrVMlOr8mcmmzFVMMbSXUEHJCZQl4pBwRE+M0sZcc6H66nopu3XS3RXP6MUTqflQ7cRy6rE2vcjDBzF5d+ZszTPhCN7pUOzOMX7dkVCgLRtr1S7kHzWkHWPU8IwJZ81+7RjfEBK1GsJj0JEhLVThW1XTreVtZFBI6693PbM7oDQKoPwYQibsFqgfxHAx3jP3a0xUROcgccPgwbzI8H85/lnEIvyRgsWNwSUEqIwssRmlXfKus33Sjv11VBxGYChzJ/s/MSjAsrCqQaqH243UVjnvCl/sEqtg=="},"schema":"rigvision.likeness/1","sketches":{"barrel":"45ef978b48b2e14b32a806f78f9f85acfa32d5c27ac26cb9b09738f9320c3ea6","sill":"cf02af1befb56de78a89bbce92bc2e068eef391eeb34be9145c64cbf971f6203"}},"measured":{"public_key":"8b237d788e8eaaef550c6d125823fa45f1fd5fc29b2c88bdf871119471fc1312","signature":"887c2badd2ebb8386ae3845a38c7510a1a654d4faa3d814d64bd3b3f032c44019094c3ceff081b3c31dcdb34f9efbb734fc00d50afe61baa2da6a441fe34290a","statement":{"core_sha256":"8614d095def86e253a33325187dc6b17c9f93f4af3cd3d00eef8e35f6fe534c4","decision":"measured","fingerprint":"d2a28ec8581826fbe75abecacc30a0b7","image_sha256":"22a3e85b32f6d1d8b4d7ce9fc6642cb54a853dd5d6e1197a6ad50dccac6f640a","ledger":"e118c3fcd76979fd","person":"M. Ross","photo_sha256":"c34ab6abb7b2bb595bc25c3b388c872fd1d575819a8f55cc689510285e212385","record":"AAAAAAAA","remark":"","result_sha256":"d202e5d052a5d41f6e7ac37b81ddfc78284c0d80884316ffae2d008aff9aeb25","role":"mechanic","schema":"rigvision.statement/1","signed_at":"2026-11-26T14:58:00.454460Z"}},"result":{"borderline":false,"door":3,"frame":"DF-10","gap_mm":0.8125,"gauge":"RG-10","schema":"rigvision.check/1","verdict":"pass"}}','20db3ae36c12f4bcebe763e31d4b4db0fd783dea9bfb0d7b461a68bfc622ef08','f432fa69dbbd35b9bbdeddcabe353eaac9bc9744670d59af6e5ec76f6258ec34','d3d4c772c11213c63447f5f792d2251051748703db83a14c9007bb6880d6a1d4aed6ba39119fde642be699f7f23081033e0e52028874923a01831c37b2817700');
INSERT INTO "entry" VALUES(6,'check-signed','2026-11-26T14:58:00.462534Z','{"record":"AAAAAAAA","signed":{"public_key":"e34d3a01b6112e1429ead61668405f4ef4be4f8853abee5079d28ac6c13ffdd0","signature":"1b6d78f28d7aca87fba0336f0b99d3be5c0af39826adb815e266f9bde8d935670202fe11ee327f959480b61e8b1efc23d41fc56ae355ac3865cc045d3805cf05","statement":{"core_sha256":"8614d095def86e253a33325187dc6b17c9f93f4af3cd3d00eef8e35f6fe534c4","decision":"accepted","fingerprint":"93bca823e5c824191c0c1d3245465c93","image_sha256":"22a3e85b32f6d1d8b4d7ce9fc6642cb54a853dd5d6e1197a6ad50dccac6f640a","ledger":"e118c3fcd76979fd","person":"I. Vance","photo_sha256":"c34ab6abb7b2bb595bc25c3b388c872fd1d575819a8f55cc689510285e212385","record":"AAAAAAAA","remark":"","result_sha256":"d202e5d052a5d41f6e7ac37b81ddfc78284c0d80884316ffae2d008aff9aeb25","role":"inspector","schema":"rigvision.statement/1","signed_at":"2026-11-26T14:58:00.462534Z"}}}','f432fa69dbbd35b9bbdeddcabe353eaac9bc9744670d59af6e5ec76f6258ec34','235d3efb120a28da0e7abbd0b18e4e11b4cfd3dfafb943775c73fac5b7b0c505','1623543e2e575a5400426aefb0589937e679d2b3660708bbf9272c97905e41d182d21697f93f1a11bf8d828b961f4b08cbe6c2b3a3154f83e541846bdd889102');
INSERT INTO "entry" VALUES(7,'check-recorded','2026-11-26T14:58:00.500364Z','{"core":{"definitions":[{"calibration_due":"2027-01-31","kind":"gauge","name":"RG-10","sha256":"ddf3bf38e44441b2b72c9b0133e25f78efafc756acd496140e23f53de51f3e04"}],"follows_count":6,"follows_hash":"235d3efb120a28da0e7abbd0b18e4e11b4cfd3dfafb943775c73fac5b7b0c505","job":"J-0001","ledger":"e118c3fcd76979fd","photo":{"media_type":"image/jpeg","name":"photo.jpg","sha256":"2f858775d71cc4ece5f46f497c58c01167cd6fc301e56e935070f5e81bfe5890","size_bytes":8},"record":"BBBBBBBB","recorded_at":"2026-11-26T14:58:00.500364Z","result_sha256":"9d124b69de0d71720f2abd1b70a424c8fa9edeca5ebfc1a87eb510fd26ae3670","schema":"rigvision.record/1","settings":{"door":3},"stage":null,"taken_at":"2026-02-03T10:11:12","versions":{"rigvision":"0"}},"core_sha256":"e5abc2b30b335f2b84958ab730e262d52f4b988d03f66d7e8838366d80f77bc8","flags":[],"image":{"media_type":"image/jpeg","name":"photo.checked.jpg","sha256":"8d703c01daed254f68c11a95723379121389a19606b9b276c7f16483204865e2","size_bytes":128},"likeness":{"camera_mm":[1.5,-2,400],"camera_uncertainty_mm":[0.1,0.1,0.5],"clock_period_deg":360,"figures":{},"frame":"","gauge":"RG-10","marks_px":{},"patches":{},"schema":"rigvision.likeness/1","sketches":{}},"measured":null,"result":{"borderline":false,"door":3,"frame":null,"gap_mm":0.8125,"gauge":null,"schema":"rigvision.check/1","verdict":"retake"}}','235d3efb120a28da0e7abbd0b18e4e11b4cfd3dfafb943775c73fac5b7b0c505','362d5c7f384262797aca0ef9cea0e833da21e7efd20af03d2ec066e6d14ff7e9','6f6e07846a20cae3c22f95fc287e38e197ecc8b36b55ed5bd5be64a179a9366a662b2ff2cade5c2f991ad0d1bf55b011632e03d7e906c1d7b2d025a537ec3b0a');
INSERT INTO "entry" VALUES(8,'check-corrected','2026-11-26T14:58:00.515212Z','{"cause":"wrong door","corrected_by":"M. Ross","record":"BBBBBBBB","replaced_by":"AAAAAAAA"}','362d5c7f384262797aca0ef9cea0e833da21e7efd20af03d2ec066e6d14ff7e9','78f95c097c75f35a69514f2a986c68f00f6b58f8c28f1ec722c8bd3b04da8c8e','c3c1ce1235e52b8f8707cddb574a0223b9c9e27231c2e868527ab11a099bb2c02dc025af49b8d37c26ea69834c76073187737ab66a70899cbdedab88e081e203');
INSERT INTO "entry" VALUES(9,'exported','2026-11-26T14:58:00.515212Z','{"form":"page","record":"AAAAAAAA","sha256":"1212121212121212121212121212121212121212121212121212121212121212","size_bytes":1234}','78f95c097c75f35a69514f2a986c68f00f6b58f8c28f1ec722c8bd3b04da8c8e','08d74273d2c0bfe6ebc55bacb86d765f0018ec976463d82d02d57e61659037de','b051d60773fbabf5a305fbf57d6f66bcb76db244ae8e63d8d416eac2b8ac8d421cc7157992d44ecd2ded77c39f0c889acae0ede41aa229f01213079366ba8108');
INSERT INTO "entry" VALUES(10,'noted','2026-11-26T14:58:00.515212Z','{"kind":"remark","noted_by":"M. Ross","record":"AAAAAAAA","text":"as found: 0.81 mm, μ"}','08d74273d2c0bfe6ebc55bacb86d765f0018ec976463d82d02d57e61659037de','3c04fdc791afb038ea38221c661f0f758e718ecca0851da9b08da71b1aa0eb05','223c7583016617b1732b6d1812947a7419bc39d940abcb5ac3e11a916433d833525c4665fcb22003fa000606afdd6d4dbf5bcb36a076a35987efe4899f656700');
INSERT INTO "entry" VALUES(11,'job-closed','2026-11-26T14:58:00.515212Z','{"closed_by":"M. Ross","job":"J-0001","remark":""}','3c04fdc791afb038ea38221c661f0f758e718ecca0851da9b08da71b1aa0eb05','1173214b425f8f9dbffedde1e16a967ec2e5203aa60f9c2273330b403edbe09c','dad298da73fc5a0d56c41ae53a651e13d8e5e88280e4d8e62cf0bce5019beadbf8a5884fa50af6c2f0ce223b063e7d91b919c1d739fcd7a1ebdb0398a63a4204');
INSERT INTO "entry" VALUES(12,'person-withdrawn','2026-11-26T14:58:00.515212Z','{"cause":"left","fingerprint":"93bca823e5c824191c0c1d3245465c93"}','1173214b425f8f9dbffedde1e16a967ec2e5203aa60f9c2273330b403edbe09c','7bfe109730b0b4543e3ab2d078791370cb08774644daae019184b3f1e04c6e9c','985c13042295f2e60c09737f387d76eb79acdd03b034c7b8c953ee5a2eba46a51081bbfe5fc3e27aa9bbb90c15a44e9f00a66b41db88ef00f5915e14880a3e0d');
CREATE TABLE file (
    sha256 TEXT NOT NULL,
    sequence INTEGER NOT NULL,
    part TEXT NOT NULL,
    size_bytes INTEGER,
    PRIMARY KEY (sha256, sequence, part)
) STRICT, WITHOUT ROWID;
INSERT INTO "file" VALUES('1212121212121212121212121212121212121212121212121212121212121212',9,'exported page',1234);
INSERT INTO "file" VALUES('22a3e85b32f6d1d8b4d7ce9fc6642cb54a853dd5d6e1197a6ad50dccac6f640a',5,'image',128);
INSERT INTO "file" VALUES('2f858775d71cc4ece5f46f497c58c01167cd6fc301e56e935070f5e81bfe5890',7,'photo',8);
INSERT INTO "file" VALUES('8d703c01daed254f68c11a95723379121389a19606b9b276c7f16483204865e2',7,'image',128);
INSERT INTO "file" VALUES('c34ab6abb7b2bb595bc25c3b388c872fd1d575819a8f55cc689510285e212385',5,'photo',8);
INSERT INTO "file" VALUES('ddf3bf38e44441b2b72c9b0133e25f78efafc756acd496140e23f53de51f3e04',5,'gauge',NULL);
INSERT INTO "file" VALUES('ddf3bf38e44441b2b72c9b0133e25f78efafc756acd496140e23f53de51f3e04',7,'gauge',NULL);
CREATE TABLE job (
    sequence INTEGER PRIMARY KEY,
    job TEXT NOT NULL COLLATE NOCASE UNIQUE,
    work_order TEXT NOT NULL COLLATE NOCASE,
    engine TEXT NOT NULL COLLATE NOCASE,
    frame TEXT NOT NULL COLLATE NOCASE,
    door INTEGER NOT NULL,
    position TEXT NOT NULL,
    opened_at TEXT NOT NULL
) STRICT;
INSERT INTO "job" VALUES(4,'J-0001','WO-J-0001','ENG-7','DF-10',3,'ordinary','2026-11-26T14:58:00.373073Z');
CREATE TABLE job_closed (
    sequence INTEGER PRIMARY KEY,
    job TEXT NOT NULL COLLATE NOCASE UNIQUE,
    closed_at TEXT NOT NULL
) STRICT;
INSERT INTO "job_closed" VALUES(11,'J-0001','2026-11-26T14:58:00.515212Z');
CREATE TABLE likeness (
    sequence INTEGER PRIMARY KEY,
    record TEXT NOT NULL,
    gauge TEXT NOT NULL,
    way_x REAL NOT NULL,
    way_y REAL NOT NULL,
    way_x_cell INTEGER NOT NULL,
    way_y_cell INTEGER NOT NULL,
    gap_mm REAL,
    taper_mm REAL,
    lateral_mm REAL,
    seat_mm REAL,
    clock_deg REAL,
    gap_cell INTEGER NOT NULL,
    clock_cell INTEGER NOT NULL,
    lateral_cell INTEGER NOT NULL,
    sill_sketch BLOB,
    barrel_sketch BLOB
) STRICT;
INSERT INTO "likeness" VALUES(5,'AAAAAAAA','RG-10',-2.07769976641627345317e-03,-2.29889167666496203878e-02,-1,-1,0.43436,NULL,0.19525,9.33049,-14.69586,8,-30,3,X'CF02AF1BEFB56DE78A89BBCE92BC2E068EEF391EEB34BE9145C64CBF971F6203',X'45EF978B48B2E14B32A806F78F9F85ACFA32D5C27AC26CB9B09738F9320C3EA6');
INSERT INTO "likeness" VALUES(7,'BBBBBBBB','RG-10',0.00375,-0.005,0,-1,NULL,NULL,NULL,NULL,NULL,-999999,-999999,-999999,NULL,NULL);
CREATE TABLE mention (
    record TEXT NOT NULL,
    sequence INTEGER NOT NULL,
    PRIMARY KEY (record, sequence)
) STRICT, WITHOUT ROWID;
INSERT INTO "mention" VALUES('AAAAAAAA',5);
INSERT INTO "mention" VALUES('AAAAAAAA',6);
INSERT INTO "mention" VALUES('BBBBBBBB',7);
INSERT INTO "mention" VALUES('AAAAAAAA',8);
INSERT INTO "mention" VALUES('BBBBBBBB',8);
INSERT INTO "mention" VALUES('AAAAAAAA',9);
INSERT INTO "mention" VALUES('AAAAAAAA',10);
CREATE TABLE migration (
    number INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE,
    done_at TEXT NOT NULL
) STRICT;
INSERT INTO "migration" VALUES(1,'first tables','2026-11-26T14:58:00.266282Z');
CREATE TABLE person (
    sequence INTEGER PRIMARY KEY,
    person TEXT NOT NULL,
    role TEXT NOT NULL,
    public_key TEXT NOT NULL,
    fingerprint TEXT NOT NULL
) STRICT;
INSERT INTO "person" VALUES(2,'M. Ross','mechanic','8b237d788e8eaaef550c6d125823fa45f1fd5fc29b2c88bdf871119471fc1312','d2a28ec8581826fbe75abecacc30a0b7');
INSERT INTO "person" VALUES(3,'I. Vance','inspector','e34d3a01b6112e1429ead61668405f4ef4be4f8853abee5079d28ac6c13ffdd0','93bca823e5c824191c0c1d3245465c93');
CREATE TABLE signing (
    sequence INTEGER PRIMARY KEY,
    record TEXT NOT NULL,
    decision TEXT NOT NULL,
    person TEXT NOT NULL,
    fingerprint TEXT NOT NULL
) STRICT;
INSERT INTO "signing" VALUES(5,'AAAAAAAA','measured','M. Ross','d2a28ec8581826fbe75abecacc30a0b7');
INSERT INTO "signing" VALUES(6,'AAAAAAAA','accepted','I. Vance','93bca823e5c824191c0c1d3245465c93');
CREATE TABLE withdrawal (
    sequence INTEGER PRIMARY KEY,
    fingerprint TEXT NOT NULL
) STRICT;
INSERT INTO "withdrawal" VALUES(12,'93bca823e5c824191c0c1d3245465c93');
CREATE TRIGGER entry_follows BEFORE INSERT ON entry
WHEN NEW.sequence IS NOT (SELECT coalesce(max(sequence), 0) + 1 FROM entry)
BEGIN SELECT RAISE(ABORT, 'an entry can only follow the last one'); END;
CREATE TRIGGER entry_no_update BEFORE UPDATE ON entry
BEGIN SELECT RAISE(ABORT, 'the ledger is only ever added to'); END;
CREATE TRIGGER entry_no_delete BEFORE DELETE ON entry
BEGIN SELECT RAISE(ABORT, 'the ledger is only ever added to'); END;
CREATE INDEX person_by_fingerprint ON person (fingerprint);
CREATE INDEX withdrawal_by_fingerprint ON withdrawal (fingerprint);
CREATE INDEX job_by_engine ON job (engine, door);
CREATE INDEX job_by_work_order ON job (work_order);
CREATE INDEX check_by_job ON check_recorded (job, sequence);
CREATE INDEX check_by_gauge ON check_recorded (gauge, sequence);
CREATE INDEX check_by_frame ON check_recorded (frame, door, sequence);
CREATE INDEX check_by_door ON check_recorded (door, sequence);
CREATE INDEX check_by_verdict ON check_recorded (verdict, borderline, sequence);
CREATE INDEX check_by_time ON check_recorded (recorded_at);
CREATE INDEX check_by_photo ON check_recorded (photo_sha256);
CREATE INDEX signing_by_record ON signing (record, decision);
CREATE INDEX signing_by_decision ON signing (decision, sequence);
CREATE INDEX correction_by_record ON correction (record);
CREATE INDEX likeness_by_way ON likeness (
    gauge, way_x_cell, way_y_cell, way_x, way_y, sill_sketch, barrel_sketch
);
CREATE INDEX likeness_by_figures ON likeness (
    gauge, gap_cell, clock_cell, lateral_cell,
    gap_mm, clock_deg, lateral_mm, seat_mm, taper_mm, sill_sketch, barrel_sketch
);
CREATE INDEX mention_by_sequence ON mention (sequence);
CREATE INDEX file_by_sequence ON file (sequence);
CREATE TRIGGER person_no_update BEFORE UPDATE ON person
BEGIN SELECT RAISE(ABORT, 'the ledger is only ever added to'); END;
CREATE TRIGGER person_no_delete BEFORE DELETE ON person
BEGIN SELECT RAISE(ABORT, 'the ledger is only ever added to'); END;
CREATE TRIGGER person_with_its_entry BEFORE INSERT ON person
WHEN NEW.sequence IS NOT (SELECT max(sequence) FROM entry)
BEGIN SELECT RAISE(ABORT, 'the index is written with its entry'); END;
CREATE TRIGGER withdrawal_no_update BEFORE UPDATE ON withdrawal
BEGIN SELECT RAISE(ABORT, 'the ledger is only ever added to'); END;
CREATE TRIGGER withdrawal_no_delete BEFORE DELETE ON withdrawal
BEGIN SELECT RAISE(ABORT, 'the ledger is only ever added to'); END;
CREATE TRIGGER withdrawal_with_its_entry BEFORE INSERT ON withdrawal
WHEN NEW.sequence IS NOT (SELECT max(sequence) FROM entry)
BEGIN SELECT RAISE(ABORT, 'the index is written with its entry'); END;
CREATE TRIGGER job_no_update BEFORE UPDATE ON job
BEGIN SELECT RAISE(ABORT, 'the ledger is only ever added to'); END;
CREATE TRIGGER job_no_delete BEFORE DELETE ON job
BEGIN SELECT RAISE(ABORT, 'the ledger is only ever added to'); END;
CREATE TRIGGER job_with_its_entry BEFORE INSERT ON job
WHEN NEW.sequence IS NOT (SELECT max(sequence) FROM entry)
BEGIN SELECT RAISE(ABORT, 'the index is written with its entry'); END;
CREATE TRIGGER job_closed_no_update BEFORE UPDATE ON job_closed
BEGIN SELECT RAISE(ABORT, 'the ledger is only ever added to'); END;
CREATE TRIGGER job_closed_no_delete BEFORE DELETE ON job_closed
BEGIN SELECT RAISE(ABORT, 'the ledger is only ever added to'); END;
CREATE TRIGGER job_closed_with_its_entry BEFORE INSERT ON job_closed
WHEN NEW.sequence IS NOT (SELECT max(sequence) FROM entry)
BEGIN SELECT RAISE(ABORT, 'the index is written with its entry'); END;
CREATE TRIGGER check_recorded_no_update BEFORE UPDATE ON check_recorded
BEGIN SELECT RAISE(ABORT, 'the ledger is only ever added to'); END;
CREATE TRIGGER check_recorded_no_delete BEFORE DELETE ON check_recorded
BEGIN SELECT RAISE(ABORT, 'the ledger is only ever added to'); END;
CREATE TRIGGER check_recorded_with_its_entry BEFORE INSERT ON check_recorded
WHEN NEW.sequence IS NOT (SELECT max(sequence) FROM entry)
BEGIN SELECT RAISE(ABORT, 'the index is written with its entry'); END;
CREATE TRIGGER signing_no_update BEFORE UPDATE ON signing
BEGIN SELECT RAISE(ABORT, 'the ledger is only ever added to'); END;
CREATE TRIGGER signing_no_delete BEFORE DELETE ON signing
BEGIN SELECT RAISE(ABORT, 'the ledger is only ever added to'); END;
CREATE TRIGGER signing_with_its_entry BEFORE INSERT ON signing
WHEN NEW.sequence IS NOT (SELECT max(sequence) FROM entry)
BEGIN SELECT RAISE(ABORT, 'the index is written with its entry'); END;
CREATE TRIGGER correction_no_update BEFORE UPDATE ON correction
BEGIN SELECT RAISE(ABORT, 'the ledger is only ever added to'); END;
CREATE TRIGGER correction_no_delete BEFORE DELETE ON correction
BEGIN SELECT RAISE(ABORT, 'the ledger is only ever added to'); END;
CREATE TRIGGER correction_with_its_entry BEFORE INSERT ON correction
WHEN NEW.sequence IS NOT (SELECT max(sequence) FROM entry)
BEGIN SELECT RAISE(ABORT, 'the index is written with its entry'); END;
CREATE TRIGGER likeness_no_update BEFORE UPDATE ON likeness
BEGIN SELECT RAISE(ABORT, 'the ledger is only ever added to'); END;
CREATE TRIGGER likeness_no_delete BEFORE DELETE ON likeness
BEGIN SELECT RAISE(ABORT, 'the ledger is only ever added to'); END;
CREATE TRIGGER likeness_with_its_entry BEFORE INSERT ON likeness
WHEN NEW.sequence IS NOT (SELECT max(sequence) FROM entry)
BEGIN SELECT RAISE(ABORT, 'the index is written with its entry'); END;
CREATE TRIGGER mention_no_update BEFORE UPDATE ON mention
BEGIN SELECT RAISE(ABORT, 'the ledger is only ever added to'); END;
CREATE TRIGGER mention_no_delete BEFORE DELETE ON mention
BEGIN SELECT RAISE(ABORT, 'the ledger is only ever added to'); END;
CREATE TRIGGER mention_with_its_entry BEFORE INSERT ON mention
WHEN NEW.sequence IS NOT (SELECT max(sequence) FROM entry)
BEGIN SELECT RAISE(ABORT, 'the index is written with its entry'); END;
CREATE TRIGGER file_no_update BEFORE UPDATE ON file
BEGIN SELECT RAISE(ABORT, 'the ledger is only ever added to'); END;
CREATE TRIGGER file_no_delete BEFORE DELETE ON file
BEGIN SELECT RAISE(ABORT, 'the ledger is only ever added to'); END;
CREATE TRIGGER file_with_its_entry BEFORE INSERT ON file
WHEN NEW.sequence IS NOT (SELECT max(sequence) FROM entry)
BEGIN SELECT RAISE(ABORT, 'the index is written with its entry'); END;
COMMIT;
