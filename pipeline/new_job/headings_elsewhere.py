"""Further headings of exports and registers: Turkish, Indonesian, Vietnamese, Chinese, Japanese, Korean, Arabic,
Hebrew, Hungarian, Romanian, Croatian and Serbian, Greek, Russian and Ukrainian, Persian,
Georgian, Hindi, Thai and Swahili.

All are from memory, as a dictionary has them, and were looked over by no surveyor of these languages: plain words and
whole headings alone, never parts of them. Above which surface heights are is left open where a word does not say it.
"""

from pipeline.read import correction_headings

#: Our words and the headings that stand for each, as `headings.CALLED` has them: without blanks, accents as they come.
ELSEWHERE = correction_headings.ELSEWHERE | {
    "name": """
        نقطه شمارهنقطه نامنقطه ایستگاه نامایستگاه نام წერტილი წერტილისსახელი წერტილისნომერი სახელი ნომერი बिंदु
        बिन्दु बिंदुनाम จุด ชื่อจุด หมายเลขจุด pointi jinalapointi jina kituo
        noktaid noktanumarasi noktaismi titik namatitik nomortitik notitik idtitik tênđiểm điểm sốhiệuđiểm sốđiểm
        点 点名称 点编号 测点 测点名 测点号 點 點名 點號 點編號 測點 測點名 測点番号 観測点 観測点名 点名称
        점 점번호 점이름 측점 측점명 측점번호 النقطة نقطة اسمالنقطة رقمالنقطة נקודה שםנקודה מספרנקודה שםהנקודה
        pont pontnév pontnev pontazonosító pontjel punct numepunct nrpunct denumirepunct numărpunct
        točka tačka nazivtočke oznakatočke imetočke nazivtačke brojtačke oznakatačke ονομασημείου αριθμόςσημείου
        названиеточки пункт имяпункта номерпункта названиепункта назваточки номерпункту назвапункту
        нүкте нүктеатауы нүктенөмірі чекит nuqta nöqtə цэг կետ pika emripikës пунктнаназив бројтачке тачка називтачке
        пунктназив номернаточка именаточка пунктномер taškas taškopavadinimas punkts punktanosaukums punktur punktsnafn
        mælipunktur točkaime puntua pwynt pointe punctul বিন্দু બિંદુ புள்ளி బిందువు ಬಿಂದು
    """,
    "code": """
        کد کدعارضه კოდი कोड รหัส msimbo
        kode kodetitik mã mãđiểm mãđốitượng 编码 代码 点编码 要素代码 地物编码 編碼 代碼 點編碼 コード 点コード 点種
        코드 점코드 الرمز رمز كود קוד kód cod codpunct šifra шифр кодточки кодпункту κωδικόσσημείου
    """,
    "time": """
        زمان زمانبرداشت დრო თარიღიდადრო თარიღი समय दिनांक เวลา วันที่ วันที่เวลา وقتالرصد wakati tarehe tarehenasaa
        zaman tarihvesaat ölçümzamanı waktu tanggalwaktu tanggaljam waktupengukuran thờigian ngàygiờ thờigianđo
        时间 日期时间 观测时间 测量时间 采集时间 時間 日期時間 觀測時間 測量時間 観測時間 測定時刻
        시간 일시 관측시간 관측일시 측정시간 측정일시 날짜시간 الوقت وقت وقتالقياس التاريخوالوقت
        זמן תאריךושעה זמןמדידה idő dátumidő dátumésidő mérésideje timp datașiora dataora vrijeme vreme datumivrijeme
        datumvrijeme datumivreme времяизмерения времянаблюдения час датачас датаічас часвимірювання
        tarih tanggal ngày 日期 日付 날짜 التاريخ תאריך dátum
        време датаивреме датаичас уақыты уақыт күніуақыты убакыт vaqt vaxt цаг ժամանակ koha data čas datumincas
        dátumačas laikas dataslaikas laiks datumsunlaiks aeg kuupäevaeg tími dagsetningogtími ordua amser দিনাংক
    """,
    "time_end": "bis bitiş selesai kếtthúc 结束 结束时间 終了 終了時刻 종료 종료시간 vége sfârșit kraj конец кінець",
    "date": """
        تاریخ თარიღი दिनांक तारीख วันที่ tarehe
        tarih ölçümtarihi tanggal ngày ngàyđo 日期 观测日期 测量日期 觀測日期 日付 年月日 観測日 測定日 날짜 일자 측정일
        관측일 التاريخ تاريخ תאריך תאריךמדידה dátum kelt datamăsurării datummjerenja ημερομηνία дата датаизмерения
        датавимірювання
    """,
    "clock": """
        زمان ساعت დრო समय เวลา saa wakati
        saat jam waktu giờ 时间 时刻 時間 時刻 観測時刻 시각 시간 الساعة وقت الوقت שעה idő óra ora vrijeme vreme ώρα
        время час година сат уақыты уақыт убакыт саат soat vaqt vaxt цаг ժամ ժամանակ საათი เวลา koha ura čas hodina
        laikas laiks aeg kellaaeg tími klukkan ordua amser שעת সময়
    """,
    "longitude": """
        طولجغرافیایی გრძედი देशांतर देशान्तर ลองจิจูด ลองติจูด longitudo
        boylam bujur kinhđộ 经度 經度 経度 경도 خطالطول الطول קואורך אורך hosszúság földrajzihosszúság
        duljina duzina zemljopisnaduljina geografskadužina longitudine γεωγραφικόμήκος географическаядолгота довгота
        географічнадовгота
        дължина географскадължина дужина географскадужина должина географскадолжина даўгата бойлық географиялықбойлық
        узундук узунлик uzunluq uzunlik уртраг երկայնություն gjatësia gjatësiagjeografike dolžina geografskadolžina
        zemljepisnadolžina dĺžka zemepisnádĺžka ilgumos longituda longitudea hydred domhanfhad lengdargráða дарозо тӯл
        দ্রাঘিমাংশ रेखांश રેખાંશ తీర్ఘాంశం రేఖాంశం ರೇಖಾಂಶ രേഖാംശം தீர்க்கரேகை දේශාංශ طولبلد طولبلد ኬንትሮስ រយៈបណ្តោយ
        ເສັ້ນແວງ လောင်ဂျီတွဒ် longitúd lambda λ l gd
    """,
    "latitude": """
        عرضجغرافیایی განედი अक्षांश ละติจูด latitudo
        enlem lintang vĩđộ 纬度 緯度 위도 خطالعرض دائرةالعرض العرض קורוחב רוחב szélesség földrajziszélesség
        širina zemljopisnaširina geografskaširina latitudine γεωγραφικόπλάτος географическаяширота географічнаширота
        ширина географскаширина шырата ендік географиялықендік кеңдик кенглик enlik kenglik өргөрөг լայնություն
        gjerësia gjerësiagjeografike zemljepisnaširina šírka zemepisnášírka platumos latituda latitudea lledred
        domhanleithead арз অক্ষাংশ અક્ષાંશ అక్షాంశం ಅಕ್ಷಾಂಶ അക്ഷാംശം அட்சரேகை අක්ෂාංශ عرضبلد ኬክሮስ រយៈទទឹង ເສັ້ນຂະໜານ
        လတ္တီတွဒ် phi φ b gs
    """,
    "easting": """
        აღმოსავლეთი पूर्व شرقی ตะวันออก mashariki الشرقيات شرقيات
        sağa sağadeğer doğu timur đông 东 东坐标 东向坐标 東 東坐標 東座標 동 동좌표 شرق الشرق الإحداثيالشرقي מזרח
        kelet istok ανατολικά восток схід
        изток исток усход шығыс чыгыш sharq şərq зүүн արևելք lindje vzhod východ východná rytai austrumi ida
        橫坐標 横坐标 橫座標 橫坐標e 横坐标y 橫坐標y
        idakoordinaat austur ekialdea dwyreiniad dwyrain oirthear oos পূর্ব પૂર્વ கிழக்கு తూర్పు ಪೂರ್ವ කිழක්කු مشرق
        eastings easts estes ostings me
    """,
    "northing": """
        ჩრდილოეთი उत्तर شمالی เหนือ kaskazini الشماليات شماليات
        yukarı yukarıdeğer kuzey utara bắc 北 北坐标 北向坐标 北坐標 北座標 북 북좌표 شمال الشمال الإحداثيالشمالي צפון
        észak sjever βόρεια север північ
        поўнач солтүстік түндүк shimol şimal хойд հյուսիս veri severná šiaurė ziemeļi põhi põhjakoordinaat norður
        縱坐標 纵坐标 縱座標 縱坐標n 纵坐标x 縱坐標x
        iparraldea gogleddiad gogledd tuaisceart উত্তর ઉત્તર வடக்கு ఉత్తరం ಉತ್ತರ شمال
        northings norths nortes mn
    """,
}

#: Words for a coordinate beside the letter of an axis, which do not say to which side it points: "X坐标", "Toạ độ Y".
COORDINATES = (
    "koordinatı", "koordinati", "koordinat", "tọađộ", "toạđộ", "坐标", "坐標", "座標", "좌표", "координата",
    "coordonata", "koordinata", "koordináta", "συντεταγμένη",
)  # fmt: skip
